"""The command line: thin verbs over the library.  ``main.VERBS`` is the one list of them."""
