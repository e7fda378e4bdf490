"""What the ground does: strength, bearing, breaking in, speed."""
