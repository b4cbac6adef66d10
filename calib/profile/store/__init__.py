"""A folder of files as the memory of a collection."""
