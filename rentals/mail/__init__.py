"""Mail to people: letters kept in a table until they are sent, each event's letter once."""
