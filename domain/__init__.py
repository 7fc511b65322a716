"""What Reedbed knows: rules (what is true), records (what is stored), actions (what is done)."""
