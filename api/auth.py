"""Who calls: a token sent along, hashed at rest, and the actor behind it."""
