"""Steps 3 and 4: what the label and the law say of an entry. Pure; each check is a function."""
