"""How do words, tables and pictures become a printable PDF, with fonts of our own and nothing from the network?"""
