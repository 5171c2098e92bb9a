"""From rows to records of wear, and from figures to the tables and charts of the pages."""
