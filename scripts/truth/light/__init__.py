"""The rooms that pieces stand in, and how their light reaches each vertex, by depth maps or by Cycles."""
