"""One module for each schema that was ever released."""
