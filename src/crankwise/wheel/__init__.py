"""Edges to teeth: which wheel is this, and which tooth is each edge."""
