"""The mesh engine: closed bodies of triangles, and triangles from elsewhere."""
