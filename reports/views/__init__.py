"""What the results look like: text for the terminal, and the columns of JSON, CSV and DataFrames."""
