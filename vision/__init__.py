"""From a photo to measures of an opening with their covariance."""
