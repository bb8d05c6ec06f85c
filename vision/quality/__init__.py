"""What makes the measures of a photo worse: blur, slant, a cut or joined picture."""
