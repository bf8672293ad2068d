"""What can go wrong in a simulated titration, when it does, and the words that ask for it."""
