"""The demo shop: an invented shop with nine months behind it, loaded through the services from `fixtures/shop`."""

from crib.management.demo.loading import demo_people, load_demo

__all__ = ["demo_people", "load_demo"]
