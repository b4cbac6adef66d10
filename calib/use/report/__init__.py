"""Sentences, documents and pictures of every answer."""
