"""English dates and times without American ambiguity: 9 Mar 2027, 14:05."""
