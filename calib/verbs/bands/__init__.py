"""Commands about which band is which: retire, rename, merge, undo."""
