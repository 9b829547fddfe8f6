"""The rooms of Muniment. What is promised to users stands in the package `muniment`."""
