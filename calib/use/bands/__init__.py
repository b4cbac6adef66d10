"""What one band or several do: predictions, comparisons, pairs, history."""
