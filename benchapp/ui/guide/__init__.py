"""The guide inside the program: chapters of plain text with pictures, searched by their words."""
