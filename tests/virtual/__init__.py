"""A virtual printer, scanner and hand. They share no code with what they are used to test."""
