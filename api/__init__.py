"""The doors, and what they share: steps, the store, the command line."""
