"""What tolerances of the inputs do to an answer and to the choice in it."""
