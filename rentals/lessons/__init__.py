"""Courses, instructors and their rosters, groups, and what students can do."""
