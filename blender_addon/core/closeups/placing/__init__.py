"""Where was a photograph taken? Its camera, refined on the picture itself and looked for without any spots."""
