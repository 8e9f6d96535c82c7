"""The bridge between the job and Blender's data: meshes, images, node trees, cameras, output, versions."""
