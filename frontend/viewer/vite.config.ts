import {readdirSync, readFileSync, writeFileSync} from 'node:fs';
import {join} from 'node:path';
import {brotliCompressSync, gzipSync} from 'node:zlib';

import {defineConfig} from 'vitest/config';

/** Small files gain nothing; fonts are compressed already. */
const LEAST_BYTES = 1024;

/** Write each text beside itself as the server sends it over slow links: compressed once, here. */
function compressed() {
  return {
    name: 'mahlstick-compressed',
    closeBundle() {
      const folder = join(import.meta.dirname, 'dist', 'assets');
      for (const name of readdirSync(folder).filter((one) => /\.(js|css|svg)$/.test(one))) {
        const text = readFileSync(join(folder, name));
        if (text.length < LEAST_BYTES) continue;
        writeFileSync(join(folder, `${name}.gz`), gzipSync(text, {level: 9}));
        writeFileSync(join(folder, `${name}.br`), brotliCompressSync(text));
      }
    },
  };
}

export default defineConfig({
  // Relative, so that Django may serve the files below any static address.
  base: './',
  plugins: [compressed()],
  build: {
    outDir: 'dist',
    manifest: 'manifest.json',
    target: 'es2022',
    // Fonts stay files: a data: address would need a wider content security policy.
    assetsInlineLimit: 0,
    modulePreload: {polyfill: false},
    rollupOptions: {
      input: {
        base: 'base.ts',
        examination: 'main.ts',
        points: 'points.ts',
        frame_setup: 'frame_setup.ts',
        bring_in: 'bring_in.ts',
        live_list: 'live_list.ts',
      },
    },
  },
  test: {
    environment: 'happy-dom',
    include: ['**/*.test.ts'],
    exclude: ['node_modules/**', 'dist/**'],
  },
});
