"""The page: the same program in a browser, for the shop and the desk."""
