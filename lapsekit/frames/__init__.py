"""Frame files: their names, their archive, and bringing in folders of photographs."""
