"""The curve as a versioned document that others use."""
