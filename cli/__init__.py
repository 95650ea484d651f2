"""The plumbstone command line: parse, call, print."""
