"""What codes and identifiers mean: standard tables and the user's own names."""
