"""What an edge leaves behind: material spread, passes and hours needed, and how well the road was cleared."""
