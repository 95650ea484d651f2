"""Weights, litres, bags and buoyancy for planted aquariums, from rough 3D shapes."""

from pkgutil import extend_path

# In a checkout this folder comes first on the path; its rooms lie beside it, in the install.
__path__ = extend_path(__path__, __name__)
