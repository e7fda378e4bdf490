"""What the commands share; no calculation of capacity stands here."""
