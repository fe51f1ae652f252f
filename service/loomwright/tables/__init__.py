"""Published figures: CSV files, their sources, and the records made from them."""
