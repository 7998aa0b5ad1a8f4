"""From what was written down to what it means: estimates with their uncertainty."""

MODEL = "4"
"""Version of the method; stored estimates of another version are made anew."""
