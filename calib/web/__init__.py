"""The page beside the rack: what the commands do, for a browser on this computer or a telephone in the same network."""
