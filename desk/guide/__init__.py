"""The hands-on guide, and the program that makes its pictures by doing what it says."""
