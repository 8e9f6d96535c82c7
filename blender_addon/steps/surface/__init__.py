"""What the texture knows: the room's light taken out, the relief brought back, the material."""
