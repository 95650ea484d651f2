"""What is measured of a mesh, how sure that is, and by which ruler."""
