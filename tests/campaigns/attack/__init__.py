"""A standing attack on the program: everything a stranger's file, a full disk, a pulled plug or a kill can do to it."""
