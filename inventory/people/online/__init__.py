"""What is asked of the house's identity provider."""
