"""Site features from drawn layers: opened, checked, told apart and placed."""
