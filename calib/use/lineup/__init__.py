"""Who hangs what: one plan for an evening of several lifters."""
