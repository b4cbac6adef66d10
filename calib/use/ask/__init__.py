"""What a person is asked before measuring, as data: prompts, options and a page's form are made of one list."""
