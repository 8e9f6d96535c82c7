"""Will a folder of photographs make a scan? How sharp, how bright, how far apart they are; numpy only, pictures as arrays."""
