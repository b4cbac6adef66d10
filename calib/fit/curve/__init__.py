"""One band's runs in, its tension curve out."""
