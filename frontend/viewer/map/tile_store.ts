/** The tiles of one image, fetched once and shared by the picture, the crops on the ledge and the loupe. */
import type {OpenImage} from '../api/contract';

const KEPT_TILES = 384;
/** A tile that did not come is asked for again no sooner than this; the link may have come back. */
const RETRY_MS = 5000;

export class TileMissingError extends Error {
  override name = 'TileMissingError';
}

export class TileStore {
  private readonly kept = new Map<string, HTMLImageElement>();
  private readonly underWay = new Map<string, Promise<HTMLImageElement>>();
  /** Tiles that did not come, and when they were last asked for. */
  private readonly failed = new Map<string, number>();
  /** Counts the tiles that came, so that pictures know when to look again. */
  arrivals = 0;

  constructor(readonly image: OpenImage) {}

  peek(zoom: number, column: number, row: number): HTMLImageElement | undefined {
    return this.kept.get(keyOf(zoom, column, row));
  }

  load(zoom: number, column: number, row: number): Promise<HTMLImageElement> {
    const key = keyOf(zoom, column, row);
    const kept = this.kept.get(key);
    if (kept) return Promise.resolve(kept);
    const running = this.underWay.get(key);
    if (running) return running;
    if (Date.now() - (this.failed.get(key) ?? -Infinity) < RETRY_MS) return Promise.reject(new TileMissingError(`No tile ${key} of ${this.image.id}.`));
    const promise = fetchPicture(this.address(zoom, column, row))
      .then((picture) => this.keep(key, picture))
      .catch((reason: unknown) => {
        this.failed.set(key, Date.now());
        throw reason;
      })
      .finally(() => this.underWay.delete(key));
    this.underWay.set(key, promise);
    return promise;
  }

  /** How many tiles did not come; the readout says so. */
  get failures(): number {
    return this.failed.size;
  }

  private address(zoom: number, column: number, row: number): string {
    return this.image.tile_url
      .replace('{z}', String(zoom))
      .replace('{x}', String(column))
      .replace('{y}', String(row));
  }

  private keep(key: string, picture: HTMLImageElement): HTMLImageElement {
    this.kept.set(key, picture);
    this.failed.delete(key);
    this.arrivals += 1;
    if (this.kept.size > KEPT_TILES) {
      const oldest = this.kept.keys().next().value;
      if (oldest !== undefined) this.kept.delete(oldest);
    }
    return picture;
  }
}

function keyOf(zoom: number, column: number, row: number): string {
  return `${String(zoom)}/${String(column)}/${String(row)}`;
}

function fetchPicture(address: string): Promise<HTMLImageElement> {
  return new Promise((resolve, reject) => {
    const picture = new Image();
    picture.decoding = 'async';
    picture.onload = () => { resolve(picture); };
    picture.onerror = () => { reject(new TileMissingError(`No tile at ${address}.`)); };
    picture.src = address;
  });
}

/** One store per image, made when first asked for. */
export class TileStores {
  private readonly stores = new Map<string, TileStore>();

  of(image: OpenImage): TileStore {
    let store = this.stores.get(image.id);
    if (!store) {
      store = new TileStore(image);
      this.stores.set(image.id, store);
    }
    return store;
  }
}
