"""Answers: one typed, frozen object for each question somebody asks of the program."""
