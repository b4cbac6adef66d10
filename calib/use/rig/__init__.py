"""What bands do in a rig: geometry, loads, checks, solving."""
