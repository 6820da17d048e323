"""The rule files as values: their grammar, what they say, and which are in force on a day."""
