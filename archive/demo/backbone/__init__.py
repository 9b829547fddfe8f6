"""The invented backbone: optical links with planted faults, their exports and traces."""
