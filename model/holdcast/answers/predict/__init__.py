"""Any anchor, size, seabed or scope that somebody asks for."""
