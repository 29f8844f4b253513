"""What phones send: mixed entries, taken one by one and in order, each exactly once however often it comes."""
