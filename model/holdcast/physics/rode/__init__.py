"""What the rode does: hanging, lifting, lying in the mud."""
