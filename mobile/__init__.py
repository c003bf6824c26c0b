"""The phone and desktop app: one hand, by looking and listening, over the same session as the command line."""
