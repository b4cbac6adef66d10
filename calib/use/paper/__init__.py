"""What is handed on or hung up: a collection as one page, sheets for the wall, drawings. Nothing is worked out here."""
