"""truerun: plan, run and judge tests of claims that a wheel runs by itself."""
