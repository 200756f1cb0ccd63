/** Entry of every page: the look, the light of the room, and papers that drop from the head line. */
import './ui/base.css';

import {startDrops} from './ui/drops';
import {startLateFonts} from './ui/late_fonts';
import {startRoomLight} from './ui/room_light';

startRoomLight(document);
startDrops(document);
startLateFonts(document);
