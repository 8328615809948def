"""How results become figures, words, executed notebooks and documents."""
