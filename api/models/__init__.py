"""What the service takes and gives, in models with units in their names."""
