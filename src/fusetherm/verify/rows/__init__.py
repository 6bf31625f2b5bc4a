"""The rows, a file for each topic; each ends in a tuple ROWS, which table.py puts together."""
