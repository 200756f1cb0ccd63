/** The marks on the painting, and the shape under the hand, as one layer over both images. */
import Feature from 'ol/Feature';
import GeoJSON from 'ol/format/GeoJSON';
import {LineString, MultiPoint, Point, Polygon, type Geometry} from 'ol/geom';
import VectorLayer from 'ol/layer/Vector';
import VectorImageLayer from 'ol/layer/VectorImage';
import VectorSource from 'ol/source/Vector';
import type {Style} from 'ol/style';

import type {AnnotationData} from '../api/contract';
import type {Examination} from '../map/examination';
import type {ExaminationMap} from '../map/examination_map';
import {roomColour} from '../ui/canvas';
import type {Drawing} from './drawing';
import {handleStyle, markStyles, type MarkLook} from './mark_style';

/** CSS pixels round the pointer within which a mark is meant. */
const REACH_CSS_PX = 9;
/** With more marks than this their keys would hide the work; the open one keeps its own. */
const MOST_PLATES = 150;
/** Up to here marks are drawn anew in every frame and stay sharp while the view moves. */
const MOST_LIVE = 300;

export class MarksLayer {
  private readonly source = new VectorSource();
  private readonly handSource = new VectorSource();
  private readonly layer = new VectorLayer({source: this.source, className: 'marks-layer', zIndex: 5, updateWhileInteracting: true, updateWhileAnimating: true});
  /** Draws the marks once and moves that picture with the view: a thousand shapes cannot be drawn anew in every frame. */
  private readonly crowdLayer = new VectorImageLayer({source: this.source, className: 'marks-layer', zIndex: 5, imageRatio: 1.5, visible: false});
  private readonly handLayer = new VectorLayer({source: this.handSource, className: 'hand-layer', zIndex: 6, updateWhileInteracting: true, updateWhileAnimating: true});
  private wasReshaping = false;
  private look: MarkLook = {core: '#FFFFFF', casing: '#101010'};

  constructor(private readonly wall: ExaminationMap, private readonly examination: Examination, private readonly drawing: Drawing) {
    for (const layer of [this.layer, this.crowdLayer]) {
      layer.setStyle((feature, resolution) => this.styles(feature as Feature, resolution));
      wall.map.addLayer(layer);
    }
    this.handLayer.setStyle((feature, resolution) => this.handStyles(feature as Feature, resolution));
    wall.map.addLayer(this.handLayer);
    examination.on('change', (patch) => {
      if ('marks' in patch || 'isMirrored' in patch) this.read();
      else if ('openMark' in patch) this.redraw();
      if ('areMarksShown' in patch || 'marks' in patch) this.chooseLayer();
    });
    drawing.on(() => { this.readHand(); });
    document.addEventListener('mahlstick-room', () => { this.dress(); });
    examination.on('full', () => { this.redraw(); });
    document.fonts.addEventListener('loadingdone', () => { this.redraw(); });
    this.dress();
  }

  /** Return the mark under a place on the screen. */
  markAt(pixel: readonly [number, number]): AnnotationData | null {
    if (!this.examination.state.areMarksShown) return null;
    const hits = this.wall.map.getFeaturesAtPixel([...pixel], {
      hitTolerance: REACH_CSS_PX,
      layerFilter: (layer) => layer === this.layer || layer === this.crowdLayer,
    });
    return this.examination.mark((hits[0]?.getId() as string | undefined) ?? null);
  }

  private dress(): void {
    this.look = {core: roomColour('--mark-core', '#FFFFFF'), casing: roomColour('--mark-casing', '#101010')};
    this.redraw();
    this.handLayer.changed();
  }

  private redraw(): void {
    this.layer.changed();
    this.crowdLayer.changed();
  }

  private chooseLayer(): void {
    const {marks, areMarksShown} = this.examination.state;
    const isCrowd = marks.length > MOST_LIVE;
    this.layer.setVisible(areMarksShown && !isCrowd);
    this.crowdLayer.setVisible(areMarksShown && isCrowd);
  }

  private read(): void {
    const {frame, view} = this.wall.viewFrame;
    const format = new GeoJSON({dataProjection: frame, featureProjection: view});
    this.source.clear(true);
    this.source.addFeatures(this.examination.state.marks.map((mark) => {
      const feature = new Feature<Geometry>(format.readGeometry(mark.geometry) ?? undefined);
      feature.setId(mark.id);
      return feature;
    }));
    this.readHand();
  }

  private styles(feature: Feature, resolution: number): Style[] {
    const geometry = feature.getGeometry();
    const mark = this.examination.mark(feature.getId() as string);
    if (!geometry || !mark || mark.id === this.drawing.reshaped?.id) return [];
    const isOpen = this.examination.state.openMark === mark.id;
    // The plates' letters must not take the link from the picture.
    const hasPlate = this.wall.isFirstViewFull && (isOpen || this.examination.state.marks.length <= MOST_PLATES);
    const key = hasPlate ? mark.key : '';
    return markStyles(geometry, {certainty: mark.certainty, key, isOpen, look: this.look, resolution});
  }

  private readHand(): void {
    const places = this.drawing.places_mm().map((place_mm) => this.wall.viewFrame.toView(place_mm));
    this.handSource.clear(true);
    if (places.length > 0) this.handSource.addFeature(new Feature(this.handGeometry(places)));
    this.handSource.changed();
    if (this.drawing.reshaped || this.wasReshaping) this.redraw();
    this.wasReshaping = this.drawing.reshaped !== null;
  }

  private handGeometry(places: number[][]): Geometry {
    const [first = [0, 0]] = places;
    if (places.length === 1) return new Point(first);
    if (this.drawing.kind === 'Polygon' && places.length > 2) return new Polygon([[...places, first]]);
    return new LineString(places);
  }

  private handStyles(feature: Feature, resolution: number): Style[] {
    const geometry = feature.getGeometry();
    if (!geometry) return [];
    const styles = markStyles(geometry, {certainty: null, key: '', isOpen: true, look: this.look, resolution});
    const corners = this.drawing.corners.map(({place_mm}) => this.wall.viewFrame.toView(place_mm));
    if (this.drawing.phase !== 'saying') styles.push(handleStyle(new MultiPoint(corners), this.look));
    return styles;
  }
}
