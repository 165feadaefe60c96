"""Two sessions side by side, aligned by meaning."""
