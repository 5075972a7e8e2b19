"""What a reviewer does with a result: reproduce it, carry it as a bundle, print it."""
