"""The page in a real Chromium, opened from disk, with the network taken away."""
