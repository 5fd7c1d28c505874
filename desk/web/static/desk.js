// The pages work without any of this: it makes them quicker. Each module does one thing.
import "./lock.js";
import "./swap.js";
import "./keys.js";
import "./list.js";
import "./visit.js";
import "./choose.js";
