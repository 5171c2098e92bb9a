"""The trade, computed: wind, kit, sizing, settings, wear and drift as pure functions of numbers."""
