// What the pages use of Leaflet; its own code is not checked.
export const CRS: any;
export const DomUtil: any;
export const GridLayer: any;
export const Layer: any;
export const Transformation: any;
export const circle: any;
export const circleMarker: any;
export const divIcon: any;
export const extend: any;
export const imageOverlay: any;
export const latLngBounds: any;
export const layerGroup: any;
export const map: any;
export const marker: any;
export const point: any;
export const polygon: any;
export const polyline: any;
