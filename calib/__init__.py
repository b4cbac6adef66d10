"""bandcurve: measure the tension curve of elastic loop bands, with an uncertainty that holds."""
