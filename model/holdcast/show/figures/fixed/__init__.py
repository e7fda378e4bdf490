"""Pictures of a fixed shape, for films and web pages: as many as what they show needs."""
