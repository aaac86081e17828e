"""What is kept, and proof that nothing was changed."""
