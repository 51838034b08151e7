"""The local web app: the whole visit in the browser, at the car."""
