"""Files of readings and tables, to and from checked rows."""
