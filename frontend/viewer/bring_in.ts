/** Entry of the page where images are brought in. */
import './ui/bring_in.css';

import './bring_in/slip_element';
