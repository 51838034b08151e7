"""One file of routes for each page: parse, call, render."""
