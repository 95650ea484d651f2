"""What stays where it is: contacts, balance, ties, sinkers, stones that stand."""
