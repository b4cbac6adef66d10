"""What a profile is for."""
