"""The house itself: who may import whom, where writes live, what the tools say."""
