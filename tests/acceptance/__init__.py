"""The suite that judges a unit. Plain pytest: each check names the views it reads, and judges evidence alone."""
