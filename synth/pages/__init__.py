"""Pages for a browser: a lesson or an instrument in one file that needs nothing else, its sound made in the page."""
